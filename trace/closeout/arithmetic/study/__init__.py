"""A study of one quantity: what drives it, where its criterion breaks, its derivation."""
