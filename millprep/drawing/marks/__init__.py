"""Marks: what is drawn, freed of the file format, and the plane geometry that reads them."""
