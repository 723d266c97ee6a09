"""What Python programs and notebooks use: `import benchctl` offers it, and nothing else is public."""
