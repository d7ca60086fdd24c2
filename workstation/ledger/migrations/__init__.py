"""Alembic's steps from one version of the tables to the next; ``schema.py`` runs them on opening."""
