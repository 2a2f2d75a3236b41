"""What happens at the machine: readings are taken, and sets are made anew with them."""
