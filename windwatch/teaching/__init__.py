"""Teaching sheets: printed questions on holding the controls, then answers and reasons; pure."""
