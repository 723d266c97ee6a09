"""HiSLIP (IVI-6.1): messages and sessions; bytes in, bytes out."""
