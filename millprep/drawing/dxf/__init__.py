"""The DXF file: opened, held against its bare tags, mended on request, walked entity by entity."""
