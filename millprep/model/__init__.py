"""The nouns: frozen, checked when made, lengths in mm."""
