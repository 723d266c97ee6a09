"""What `benchctl calibrate` says and asks, and the file that it writes."""
