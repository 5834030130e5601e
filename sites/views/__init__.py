"""Pages of sites, lanes and surveys, one module a part of the work."""
