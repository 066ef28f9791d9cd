// A photo is made smaller before it is sent, as the server would make it: seconds less on a shop's network.
// Without this file it is sent as it is.
"use strict";

(() => {
  const LONGEST = 1600;

  const smaller = async (file) => {
    const image = await createImageBitmap(file, { imageOrientation: "from-image" });
    const share = Math.min(1, LONGEST / Math.max(image.width, image.height));
    const canvas = document.createElement("canvas");
    canvas.width = Math.max(1, Math.round(image.width * share));
    canvas.height = Math.max(1, Math.round(image.height * share));
    const pen = canvas.getContext("2d");
    pen.fillStyle = "white";
    pen.fillRect(0, 0, canvas.width, canvas.height);
    pen.drawImage(image, 0, 0, canvas.width, canvas.height);
    image.close();
    return new Promise((done) => canvas.toBlob(done, "image/jpeg", 0.88));
  };

  document.querySelectorAll("input[type=file][data-photo]").forEach((box) => {
    const said = document.createElement("p");
    said.className = "small";
    said.setAttribute("role", "status");
    box.after(said);
    const buttons = () => (box.form ? box.form.querySelectorAll("button") : []);
    box.addEventListener("change", async () => {
      const file = box.files[0];
      said.textContent = "";
      said.classList.remove("wrong");
      if (!file || typeof DataTransfer === "undefined" || typeof createImageBitmap === "undefined") return;
      buttons().forEach((b) => { b.disabled = true; });
      try {
        const small = await smaller(file);
        if (small && small.size < file.size) {
          const held = new DataTransfer();
          held.items.add(new File([small], "photo.jpg", { type: "image/jpeg" }));
          box.files = held.files;
        }
        said.textContent = say("The photo goes along when the form is sent.");
      } catch {
        if (file.size > Number(box.dataset.photo)) {
          box.value = "";
          said.classList.add("wrong");
          said.textContent = say("This file is too large, and no picture that this tablet can read. Take the photo anew.");
        }
      } finally {
        buttons().forEach((b) => { b.disabled = false; });
      }
    });
  });
})();
