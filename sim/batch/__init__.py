"""Many trials: the plan, the study made from it, the workers, local or on many machines."""
