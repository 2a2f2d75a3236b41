"""Bytes from and to the disk: inputs whole or refused, results whole or not at all."""
