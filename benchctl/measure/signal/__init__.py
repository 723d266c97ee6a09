"""What a record tells: sine fit, distortion, noise, response, supply, heat; arrays in, numbers out."""
