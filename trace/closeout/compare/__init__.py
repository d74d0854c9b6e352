"""Dossier against dossier. So far: the staged state against HEAD."""
