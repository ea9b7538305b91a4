"""Dyno sheets and logs as they come: read, explained, and brought to one correction and place."""
