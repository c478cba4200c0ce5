"""What stored trials say of configurations: rates, limits, differences, and the sentences for them."""
