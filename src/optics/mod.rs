//! Published closed forms and the exact diffraction-and-defocus integral; scalars in, scalars out; no image, no file.
