"""Alembic's steps from one version of the tables to the next; run by ``schema.py`` when a ledger is opened."""
