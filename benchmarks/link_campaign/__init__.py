"""Real-time runs whose links to one instrument go wrong: how soon is everything off, how soon is it told?"""
