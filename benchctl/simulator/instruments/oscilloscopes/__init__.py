"""Simulated oscilloscopes: one way of recording, and the many ways in which they speak."""
