"""What a user writes: frozen models, reading and checking of files."""
