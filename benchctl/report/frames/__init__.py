"""Pictures as files to publish: each as SVG and as PNG, by itself and composed for a frame of 16:9."""
