"""What happens between two moments: state, forces, accelerations, one step, and the seam to the engines."""
