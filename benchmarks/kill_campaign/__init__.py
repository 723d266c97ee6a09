"""Real-time runs killed at random instants: how soon is everything off, and is what was measured kept?"""
