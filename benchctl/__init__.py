"""Unattended, safe power tests of vehicle audio amplifiers over SCPI instruments, real or simulated."""
