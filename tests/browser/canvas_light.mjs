// Notes the mean light of cells of the picture's canvas whenever a picture is drawn, for so many seconds: times in seconds,
// linear red, green and blue of every cell, row by row. What flashes in it is counted by tests/flash_counting.py.
async ([seconds, cellWidth, cellHeight]) => {
  const canvas = document.querySelector("canvas[data-image=picture]");
  const { width, height } = canvas;
  const copy = new OffscreenCanvas(width, height).getContext("2d", { willReadFrequently: true });
  // PUB IEC 61966-2-1, as WCAG's relative luminance has it.
  const linear = Float64Array.from({ length: 256 }, (_, code) => (code <= 10 ? code / 255 / 12.92 : ((code / 255 + 0.055) / 1.055) ** 2.4));
  const [across, down] = [Math.floor(width / cellWidth), Math.floor(height / cellHeight)];
  const times = [];
  const cells = [];
  let said = "";
  const note = () => {
    copy.drawImage(canvas, 0, 0);
    const { data } = copy.getImageData(0, 0, width, height);
    const sums = new Float32Array(across * down * 3);
    for (let y = 0; y < down * cellHeight; y += 1) {
      const row = Math.floor(y / cellHeight) * across;
      // Every third of a line will do, and leaves the page its time.
      for (let x = y % 3; x < across * cellWidth; x += 3) {
        const to = 3 * (row + Math.floor(x / cellWidth));
        const from = 4 * (y * width + x);
        for (let plane = 0; plane < 3; plane += 1) sums[to + plane] += linear[data[from + plane]];
      }
    }
    times.push(performance.now() / 1000);
    said = document.getElementById("flashing-note").textContent || said;
    cells.push(sums.map((sum) => 3 * sum / (cellWidth * cellHeight)));
  };
  document.addEventListener("bandbench:frame", note);
  await new Promise((resolve) => setTimeout(resolve, 1000 * seconds));
  document.removeEventListener("bandbench:frame", note);
  // As whole numbers, which are told much faster.
  const told = cells.map((one) => Array.from(one, (light) => Math.round(1e4 * light)));
  const box = canvas.getBoundingClientRect();
  return { said, times, cells: told, across, down, css: [box.width / width * cellWidth, box.height / height * cellHeight] };
}
