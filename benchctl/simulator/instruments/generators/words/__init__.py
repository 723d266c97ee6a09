"""The words of simulated generators, a group a module."""
