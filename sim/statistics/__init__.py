"""Numbers in, intervals and verdicts out; knows nothing of trucks, trials or files."""
