"""Run folders in forms that other programs read: Parquet, tidy CSV, sound files in volts, and JUnit XML."""
