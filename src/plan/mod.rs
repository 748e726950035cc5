//! Choices for the next shot: focus distance, aperture, stand-back, camera height and tilt. Sees no image.
