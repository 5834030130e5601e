"""Views of the roadside and of renewal."""
