"""Questions answered by several launches."""
