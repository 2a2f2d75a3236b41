"""The steps that walks are made of, one module each; none of them knows a walk."""
