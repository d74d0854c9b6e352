"""What the code of an analysis may hold for its bounds to be called proved."""
