"""The oscilloscope: its ranges, its records, and what the samples that it sends mean."""
