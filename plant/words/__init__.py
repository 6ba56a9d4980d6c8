"""What the words on the screens mean, and what each page is for."""
