"""Species knowledge: one TOML file a taxon, and the loader that checks it."""
