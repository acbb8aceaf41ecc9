"""What fails, who mends it, and the equipment state of each hop that follows."""
