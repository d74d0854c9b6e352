"""Rules of the standards and of wording: what can be said of a project without running anything."""
