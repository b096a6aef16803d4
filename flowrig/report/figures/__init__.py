"""Results as pictures: one file a figure, and one for what they have in common. matplotlib loads when one is made."""
