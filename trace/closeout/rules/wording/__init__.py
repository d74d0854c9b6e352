"""What a requirement's statement says, and whether its criteria say the same."""
