"""Where temperature records come from."""
