"""What pilots know about wind: components, control positions, tie-downs, variation."""
