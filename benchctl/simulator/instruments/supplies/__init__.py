"""Simulated supplies, by the form of remote control that they speak."""
