"""What the cutters shall follow: isolation, holes, profiles, in the blank frame."""
