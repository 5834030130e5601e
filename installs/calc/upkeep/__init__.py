"""Upkeep and renewal: work, visits, spares, warranty, policies and what they cost."""
