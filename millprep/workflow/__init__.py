"""The walks that make or prove a whole set, and what they share."""
