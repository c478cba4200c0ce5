"""Was the prediction right? Attempts on real lines against simulated trials, and what is learned from them."""
