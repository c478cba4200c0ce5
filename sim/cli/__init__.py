"""The command line: reads words and files, calls the pure parts, prints. Only this folder knows typer."""
