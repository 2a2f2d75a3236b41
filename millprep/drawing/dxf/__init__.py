"""The DXF file: opened, checked against its bare tags, mended on request, walked."""
