"""Reading back what was written and proving the copper; shares nothing with the writer."""
