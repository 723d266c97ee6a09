"""Figures and their uncertainty: instrument chains, loads and meters as uncertain numbers."""
