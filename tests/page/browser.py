"""One headless Chromium, driven by Selenium, for the tests of the status page. Each line of standard
input asks for a visit as JSON; each answer is a line of JSON on standard output:

  {"url": ..., "width": 1200, "height": 900, "dark": false, "script": true, "axe": false}

What is told of the page comes from the browser itself and from axe-core, an accessibility checker that
shares nothing with the page."""

import json
import pathlib
import sys

from selenium import webdriver
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

import axe_playwright_python

AXE = next(pathlib.Path(axe_playwright_python.__file__).parent.glob("axe*.js")).read_text()


def start():
    options = webdriver.ChromeOptions()
    for argument in (
        "--headless=new",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-quic",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-dev-shm-usage",
        "--disable-sync",
    ):
        options.add_argument(argument)
    options.binary_location = sys.argv[1]
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    return webdriver.Chrome(options, webdriver.ChromeService(sys.argv[2]))


def requests(driver):
    """Every address that was asked for, with the status of its answer."""
    asked, status = {}, {}
    for entry in driver.get_log("performance"):
        message = json.loads(entry["message"])["message"]
        parameters = message["params"]
        if message["method"] == "Network.requestWillBeSent":
            asked[parameters["requestId"]] = parameters["request"]["url"]
        elif message["method"] == "Network.responseReceived":
            status[parameters["requestId"]] = parameters["response"]["status"]
    return [[url, status.get(number)] for number, url in asked.items()]


def focused(driver):
    """What the tabulator key reaches, in its order."""
    seen = []
    for _ in range(40):
        webdriver.ActionChains(driver).send_keys(Keys.TAB).perform()
        told = driver.execute_script(
            "const e = document.activeElement;"
            "return e === document.body ? null"
            " : e.tagName + ' ' + (e.getAttribute('aria-label') || e.textContent.trim());"
        )
        if told is None or told in seen:
            break
        seen.append(told)
    return seen


def visit(driver, wanted):
    driver.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {
            "width": wanted.get("width", 1200),
            "height": wanted.get("height", 900),
            "deviceScaleFactor": 1,
            "mobile": wanted.get("width", 1200) < 600,
        },
    )
    scheme = "dark" if wanted.get("dark") else "light"
    driver.execute_cdp_cmd(
        "Emulation.setEmulatedMedia",
        {"features": [{"name": "prefers-color-scheme", "value": scheme}]},
    )
    script = wanted.get("script", True)
    driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": not script})
    requests(driver)
    driver.get_log("browser")
    driver.get(wanted["url"])
    told = {
        "title": driver.title,
        "text": driver.find_element(By.TAG_NAME, "body").text,
        "asked": requests(driver),
        "console": [entry["message"] for entry in driver.get_log("browser")],
        "source": len(driver.page_source),
    }
    # Selenium's own look into the page needs scripts; those of the page are what was switched off.
    driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
    told["overflow"] = driver.execute_script(
        "return document.documentElement.scrollWidth - document.documentElement.clientWidth"
    )
    told["background"] = driver.execute_script(
        "return getComputedStyle(document.body).backgroundColor"
    )
    told["outline"] = driver.execute_script(
        "return [...document.querySelectorAll('h1, h2, h3')].map(h => h.tagName + ' ' + h.textContent)"
    )
    told["alive"] = driver.execute_script(
        "return document.querySelectorAll('script, iframe, object, embed, [onload], [onerror]').length"
    )
    if wanted.get("keys"):
        told["focused"] = focused(driver)
    if wanted.get("axe"):
        driver.execute_script(AXE)
        found = driver.execute_async_script(
            "const done = arguments[0]; axe.run().then(done, error => done({violations: [{id: String(error)}]}));"
        )
        told["violations"] = [
            [rule["id"], [node["html"][:200] for node in rule.get("nodes", [])][:3]]
            for rule in found["violations"]
        ]
        told["passes"] = len(found.get("passes", []))
    if "picture" in wanted:
        height = driver.execute_script("return document.documentElement.scrollHeight")
        driver.execute_cdp_cmd(
            "Emulation.setDeviceMetricsOverride",
            {
                "width": wanted.get("width", 1200),
                "height": height,
                "deviceScaleFactor": 1,
                "mobile": wanted.get("width", 1200) < 600,
            },
        )
        driver.save_screenshot(wanted["picture"])
    return told


def main():
    driver = start()
    try:
        for line in sys.stdin:
            print(json.dumps(visit(driver, json.loads(line))), flush=True)
    finally:
        driver.quit()


main()
