"""Seasonal timing."""
