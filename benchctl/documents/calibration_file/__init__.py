"""Calibration files: what a workshop has measured of its own load resistors, probes, clamp and leads."""
