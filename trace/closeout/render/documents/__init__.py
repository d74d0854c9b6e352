"""The documents of a review, a module each: pure functions from what is known to pages."""
