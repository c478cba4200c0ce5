"""Pictures: the only files that draw with matplotlib."""
