"""The grading bench: feature maps of boards and the station where a person grades them."""
