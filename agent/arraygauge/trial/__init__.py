"""Measured options: arrays made for moments of blank spare drives. Its own door, its own guards."""
