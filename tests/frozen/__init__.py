"""What the sets of known jobs hold, frozen: moves and figures that no tidying may change."""
