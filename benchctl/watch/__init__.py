"""What can be seen of a run while it goes on, as plain words and numbers, and the page that shows it in a browser."""
