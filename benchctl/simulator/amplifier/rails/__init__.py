"""The rails in time: by the means of a cycle, or inside the cycle where their ripple counts."""
