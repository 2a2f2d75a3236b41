"""The rules of the trade, judged on the copper that is left after the programs have run."""
