"""One attempt of one truck over one obstacle: driver, referee, luck, result."""
