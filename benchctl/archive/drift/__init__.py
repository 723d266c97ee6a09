"""What runs tell of their bench over months: zeros, gains and figures of a check standard, each as a control chart."""
