"""The way from what a user writes to plain numbers: one map of keys to the fields of a record, and what fills them."""
