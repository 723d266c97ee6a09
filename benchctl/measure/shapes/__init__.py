"""Square waves and pairs of tones in one record."""
