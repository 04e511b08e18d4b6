// The camera's picture: dots and picture of one frame come in one message and are drawn as one.

const TRAIL = 30; // places of a trail that are drawn
const PAUSE_MS = 1000;

function parts(buffer) {
  const length = new DataView(buffer).getUint32(0);
  const head = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)));
  return [head, new Blob([new Uint8Array(buffer, 4 + length)], {type: "image/jpeg"})];
}

/** Draws what comes from an address into a canvas, and tells each head; `bright()` brightens it. */
export function see(canvas, address, tell, bright) {
  const pen = canvas.getContext("2d"), trails = new Map();
  let newest = null, drawing = false, socket = null, over = false;

  function drawDots({dots}, scale) {
    pen.lineWidth = 2;
    // Legible however small the picture is shown.
    const letter = Math.max(16, 14 * canvas.width / (canvas.clientWidth || canvas.width));
    pen.font = `${letter}px system-ui, sans-serif`;
    const names = [];
    for (const [x, y, carried, lit] of dots) {
      const [px, py] = [x * scale, y * scale];
      pen.strokeStyle = pen.fillStyle = lit ? "#F0A35E" : "#EFE9DC"; // on a dark picture always
      pen.beginPath();
      if (lit) pen.arc(px, py, 10, 0, 7);
      else pen.rect(px - 6, py - 6, 12, 12);
      pen.stroke();
      if (!carried) continue;
      names.push([carried, px, py, pen.fillStyle]);
      const trail = [...(trails.get(carried) ?? []), [px, py]].slice(-TRAIL);
      trails.set(carried, trail);
      pen.beginPath();
      trail.forEach(([tx, ty], index) => (index ? pen.lineTo(tx, ty) : pen.moveTo(tx, ty)));
      pen.stroke();
    }
    for (const [name, px, py, colour] of names) { // over the trails, and within the picture
      const before = px + 14 + pen.measureText(name).width > canvas.width;
      pen.textAlign = before ? "right" : "left"; // "end" turns round with the language
      const place = [name, px + (before ? -14 : 14), py + letter / 3];
      pen.lineWidth = 4;
      pen.strokeStyle = "#16181C";
      pen.strokeText(...place);
      pen.fillStyle = colour;
      pen.fillText(...place);
    }
    for (const name of [...trails.keys()]) {
      if (!dots.some(dot => dot[2] === name)) trails.delete(name);
    }
  }

  async function draw() {
    drawing = true;
    while (newest) {
      const [head, blob] = parts(newest);
      newest = null;
      const picture = head.picture_px ? await createImageBitmap(blob) : null;
      const wide = picture?.width ?? 640, high = picture?.height ?? 480;
      if (canvas.width !== wide || canvas.height !== high) {
        [canvas.width, canvas.height] = [wide, high];
      }
      pen.fillStyle = "#16181C";
      pen.fillRect(0, 0, wide, high);
      pen.filter = bright() ? "brightness(4)" : "none";
      if (picture) pen.drawImage(picture, 0, 0);
      pen.filter = "none";
      drawDots(head, head.size_px ? wide / head.size_px[0] : 1);
      canvas.dataset.frame = head.frame;
      if (!over) tell(head);
    }
    drawing = false;
  }

  function connect() {
    socket = new WebSocket(address);
    socket.binaryType = "arraybuffer";
    socket.onmessage = ({data}) => {
      newest = data;
      if (!drawing) draw();
    };
    socket.onclose = () => over || setTimeout(connect, PAUSE_MS);
  }
  connect();
  return {close() { over = true; socket.close(); }};
}
