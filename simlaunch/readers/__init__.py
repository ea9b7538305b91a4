"""Dyno sheets and logs as they come: read, explained, brought on one footing."""
