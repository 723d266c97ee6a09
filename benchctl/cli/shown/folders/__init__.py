"""What is shown of run folders: lists of them, their page, and whether their figures come out again."""
