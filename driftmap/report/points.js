// Landing points: one canvas, drawn again when the map has moved.

function unpack(text) {
  const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
  const view = new DataView(bytes.buffer);
  return Array.from({ length: bytes.length / 2 }, (_, i) => view.getInt16(2 * i, true));
}

const PointLayer = L.Layer.extend({
  onAdd(map) {
    this.canvas = L.DomUtil.create("canvas", "leaflet-zoom-hide points");
    map.getPane("contours").appendChild(this.canvas);
    this.pieces ??= DRIFTMAP.points.pieces.map(unpack);
    map.on("moveend zoomend resize", this.draw, this);
    this.draw();
  },
  onRemove(map) {
    map.off("moveend zoomend resize", this.draw, this);
    this.canvas.remove();
  },
  draw() {
    const size = chart.getSize();
    const sharp = window.devicePixelRatio || 1;
    L.DomUtil.setPosition(this.canvas, chart.containerPointToLayerPoint([0, 0]));
    Object.assign(this.canvas, { width: size.x * sharp, height: size.y * sharp });
    Object.assign(this.canvas.style, { width: `${size.x}px`, height: `${size.y}px` });
    const pen = this.canvas.getContext("2d");
    pen.scale(sharp, sharp);
    pen.globalAlpha = 0.5;
    DRIFTMAP.pieces.forEach((piece, i) => {
      if (boxOf(piece).checked) this.drawPiece(pen, this.pieces[i], piece.color, size);
    });
  },
  drawPiece(pen, steps, color, size) {
    const [lat, lon] = DRIFTMAP.pad;
    const { step } = DRIFTMAP.points;
    pen.fillStyle = getComputedStyle(document.documentElement).getPropertyValue(`--c${color}`);
    for (let i = 0; i < steps.length; i += 2) {
      const at = chart.latLngToContainerPoint([lat + steps[i] * step, lon + steps[i + 1] * step]);
      if (at.x >= 0 && at.y >= 0 && at.x <= size.x && at.y <= size.y) pen.fillRect(at.x - 1, at.y - 1, 2, 2);
    }
  },
});

const points = {
  layer: new PointLayer(),
  show(shown) {
    if (!shown) this.layer.remove();
    else if (chart.hasLayer(this.layer)) this.layer.draw();
    else this.layer.addTo(chart);
  },
};
