"""How a long blank is cut on a short machine: windows, registration holes, joins."""
