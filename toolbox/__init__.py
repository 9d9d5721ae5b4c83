"""What all algorithms share."""
