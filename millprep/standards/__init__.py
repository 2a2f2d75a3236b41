"""Published rules of the trade as pure functions, each with its source."""
