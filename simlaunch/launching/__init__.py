"""What is timed, and the launches that every study makes."""
