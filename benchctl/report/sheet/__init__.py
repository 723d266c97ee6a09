"""The owner's sheet: one side of paper on a run, as a page to print and, where Chromium is found, as PDF."""
