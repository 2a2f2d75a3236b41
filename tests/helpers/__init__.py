"""What several tests build on; no test imports another test."""
