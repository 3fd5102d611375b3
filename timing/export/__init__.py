"""Calendars and answers as files and text."""
