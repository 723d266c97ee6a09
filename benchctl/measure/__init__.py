"""Pure functions from arrays to figures: sine fit, distortion, burst, power, uncertainty."""
