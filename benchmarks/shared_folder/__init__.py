"""Do benches that write to one slow folder at once get in each other's way, or in the way of who looks at it?"""
