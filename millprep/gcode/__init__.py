"""From cuts to programs: the order of the moves, and the files that hold them."""
