"""The grower's notebook: sites, trees, observed dates, work done and shoots left to run."""
