"""New things written as DEVELOPERS.md says, a file each: `tests/test_new_things.py` gives each its one line."""
