"""What sizing finds: counts, who goes where, on which host, and how two such plans compare."""
