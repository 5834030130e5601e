"""Reads about sites, lanes and surveys, one module a part of the work."""

from sites.selectors.places import lane_by_label, lane_list, program_get, site_list

__all__ = ["lane_by_label", "lane_list", "program_get", "site_list"]
