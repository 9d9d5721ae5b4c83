"""What is given as depth is doubted: marks and units taken for depths, and what contradicts all round it."""
