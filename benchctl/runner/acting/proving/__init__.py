"""What a run makes sure of before it drives the amplifier hard: that its loads are what the bench file says."""
